"""Parts of the command line: options that commands share."""
