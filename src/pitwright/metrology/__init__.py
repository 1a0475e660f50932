"""What a reading is worth: value, uncertainty, verdict."""
