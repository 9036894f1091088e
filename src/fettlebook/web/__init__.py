"""Pages and API. No rule and no formula lives here."""
