"""The lumped circuit around the coils: capacitor banks with spark gap, crowbar and leads, or coils
with prescribed currents.  `equations` writes it as a few rows that border the field's matrix;
nothing here knows a mesh."""
from fieldsolve.circuit.bank import Bank, Crowbar, Leads, plate_leads, wire_leads
from fieldsolve.circuit.equations import Network, Switches
from fieldsolve.circuit.prescribed_currents import PrescribedCurrentNetwork, PrescribedCurrents

__all__ = [
    "Bank", "Crowbar", "Leads", "Network", "PrescribedCurrentNetwork", "PrescribedCurrents",
    "Switches", "plate_leads", "wire_leads",
]
