"""The command line: parse, call, render, exit code. One file a command."""
