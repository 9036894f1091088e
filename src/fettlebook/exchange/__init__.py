"""What comes in and goes out: calendars, files. Names of people never pass this door."""
