"""Pages that are written by a command: the module table, the API page, and the outputs that a page quotes below its commands."""
