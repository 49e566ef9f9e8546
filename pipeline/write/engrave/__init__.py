"""Layers as music drawn in SVG, and on paper."""
