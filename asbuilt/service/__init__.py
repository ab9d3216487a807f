"""Service entries and household to dates."""
