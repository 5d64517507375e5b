"""Kept files: frozen dataclasses as plain data and arrays, in one zip file that numpy opens too, with header and hash, without pickle."""
