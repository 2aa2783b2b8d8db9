"""Every list of the program as a file, beside the address of its page: `.csv` and `.json`."""
