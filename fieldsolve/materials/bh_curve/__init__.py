"""B-H curves of metals that saturate: the contract, one file a law, and what follows from every
curve: reluctivities and coenergy."""
from fieldsolve.materials.bh_curve.brauer import Brauer
from fieldsolve.materials.bh_curve.contract import BHCurve
from fieldsolve.materials.bh_curve.derived import chord_reluctivity, coenergy_density, effective_reluctivity
from fieldsolve.materials.bh_curve.frohlich import Frohlich
from fieldsolve.materials.bh_curve.table import BHTable

CURVES = (Frohlich, Brauer, BHTable)        # those that a kept shot may hold

__all__ = ["CURVES", "BHCurve", "BHTable", "Brauer", "Frohlich", "chord_reluctivity", "coenergy_density", "effective_reluctivity"]
