"""From a job to its numbers: covers, positions, spacings, thicknesses, each with its interval."""
