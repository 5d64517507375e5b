"""Physical constants, SI."""
import math

MU_0 = 4e-7 * math.pi      # H/m, the value the reference cases use; the measured one differs by 1e-10 of it
NU_0 = 1.0 / MU_0          # m/H, reluctivity of vacuum
ZERO_CELSIUS = 273.15         # K
