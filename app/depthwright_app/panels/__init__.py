"""The left side: the job's lines and marks, and the details of the selected one."""
