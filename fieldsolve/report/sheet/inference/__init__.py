"""Pages of what records tell of a model.

One module: the page of a calibration to several shots.  The page of a radius from one trace is in the room above.
"""
