"""One file for each command of the program: from a request to a result, without parsing or printing."""
