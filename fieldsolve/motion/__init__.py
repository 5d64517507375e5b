"""Bodies and turns that move and deform: how far, how fast, and what work it takes.  `rigid`,
`hoops` and `plastic_flow` are three kinds of motion; `moving_mesh` takes the field along;
`movement` holds all that moves in one shot."""
