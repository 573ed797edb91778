"""Asking control units: what they are asked, in which bytes, when, and what their answers mean.

Start at `asking.py`, which joins the scheduler and the decoding. Everything here is a function of its input and of a
time handed in; nothing opens a bus, reads a clock or sends.
"""
