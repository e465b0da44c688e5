"""The Depthwright desktop program: screens and commands over the core library. Holds no physics."""
