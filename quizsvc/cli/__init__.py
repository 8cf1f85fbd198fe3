"""The command line, one file per command group: parse, call one service, print."""
