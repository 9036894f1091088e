"""What comes in by itself: machines' logs and laboratories' reports from a folder, an address, or a broker. Each file once, as it came."""
