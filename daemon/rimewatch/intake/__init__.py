"""What arrives: broker session, decoders, quality, quarantine, operator entries."""
