"""Calibration to several shots: the records' posteriors put together, shots that are held out, the file that cases name.

From below: the joint posterior; held-out shots; text and file; the calibration; the shots of logs.
"""
