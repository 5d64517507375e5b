"""The blank that comes out of a shot: with its dimensions as a calliper measures them, and in the round, cut open."""
