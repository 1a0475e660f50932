"""How warm bell, spring and shoes get over a heat, and what slip heat costs in shoes."""
