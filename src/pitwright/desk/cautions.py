"""Cautions that stand in more than one place. The maker, the race director and local rules rule."""

CREEP_CAUTION = (
    "Engine running: hands, hair and rag clear of wheels, bell and flywheel; fresh air, no flame"
)
"""For a test of creep, wherever one is begun."""
