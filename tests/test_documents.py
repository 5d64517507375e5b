"""Pages do what they say: commands run, quoted outputs come out, tables made from the code are fresh, links lead somewhere."""
from __future__ import annotations
