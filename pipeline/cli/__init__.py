"""The command line: parses, calls one library function, prints. Nothing else prints or exits."""
