"""Factors between units for people and units for computing."""

KM_PER_H_PER_M_PER_S = 3.6
KM_PER_H_PER_MM_PER_S = 0.0036
NS_PER_S = 1_000_000_000
S_PER_HOUR = 3600.0
