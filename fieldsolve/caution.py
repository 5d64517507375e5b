"""The caution that stands below everything that is computed for a bench."""

CAUTION = ("Caution: computed values, for orientation only. A charged bank kills. Local codes, the standards and licensed practice "
           "prevail over anything printed here.")
