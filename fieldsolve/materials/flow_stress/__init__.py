"""Laws for the flow stress of a metal: the contract, one file a law, and the table of laws that a data file can name."""
from fieldsolve.materials.flow_stress.contract import FlowStressLaw
from fieldsolve.materials.flow_stress.johnson_cook import JohnsonCook
from fieldsolve.materials.flow_stress.zerilli_armstrong import ZerilliArmstrong

LAWS = {law.data_name: law for law in (JohnsonCook, ZerilliArmstrong)}      # by the word after `flow_stress_law =`; kept shots hold them
DEFAULT_LAW = JohnsonCook.data_name

__all__ = ["DEFAULT_LAW", "LAWS", "FlowStressLaw", "JohnsonCook", "ZerilliArmstrong"]
