"""The page that goes to the bench, one HTML file that prints on two sheets of A4: key figures,
card, plots, oscilloscope settings and a checklist."""
