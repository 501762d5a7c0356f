"""Drawings in millimetres, and how they become SVG, PNG and PDF."""
