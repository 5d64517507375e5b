"""Files as such, whatever they hold: written complete or not at all and known as this program's own, read within bounds where
somebody else wrote them."""
from fieldsolve.files.atomic import PARTIAL, SCREEN, is_special, try_folder, write_atomically, write_json

__all__ = ["PARTIAL", "SCREEN", "is_special", "try_folder", "write_atomically", "write_json"]
