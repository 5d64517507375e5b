"""Files on disk: written complete or not at all, signed with where they come from, and TOML read
within bounds."""
from fieldsolve.files.atomic import SCREEN, is_special, sweep_partials, try_folder, write_atomically, write_json

__all__ = ["SCREEN", "is_special", "sweep_partials", "try_folder", "write_atomically", "write_json"]
