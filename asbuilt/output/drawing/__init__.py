"""The record drawing: a plan at a true scale as SVG and PDF, with its tables."""
