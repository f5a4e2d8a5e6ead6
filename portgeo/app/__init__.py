"""The program round the library: the command line, its commands, a job and its steps."""
