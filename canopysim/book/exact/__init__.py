"""Slow and obvious answers by quadrature, series and linear solves. No imports of canopysim."""
