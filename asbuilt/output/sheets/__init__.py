"""Printed sheets: from plain data to PDF, to be held in the hand."""
