"""Figures drawn by the server as SVG: pure functions from numbers to markup, with no style attribute anywhere.

They compute drawing coordinates only. Words come in as text, colours come from classes in figures.css.
"""
