"""Engine speed from a recording: pure computation on sampled sound."""
