"""What was heard in a recording, against the model."""
