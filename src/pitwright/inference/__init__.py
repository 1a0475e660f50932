"""What the record says: wear forecasts and lap statistics."""
