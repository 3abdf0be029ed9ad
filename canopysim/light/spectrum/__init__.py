"""Spectra of light: read, made, mixed, cut into bands, measured, and weighed against matter.

In the order of use: `pieces` (curves and their integrals), `spectrum` (the type), `headings` and
`table` (text to spectrum), `making` (LEDs, shares, mixtures), `named` (what ships), `weights` (the
eye's and the leaf's curve), `measures` (figures of a spectrum), `averages` (matter as a light sees
it).
"""
