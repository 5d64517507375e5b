"""Pages of what the records of shots tell of a model, each as one file of HTML by itself.

One module: the page of a calibration to several shots.  The page of a radius from one trace is in the room above.
"""
