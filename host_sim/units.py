"""Factors between units for people and units for computing."""

KM_PER_H_PER_M_PER_S = 3.6
KM_PER_H_PER_MM_PER_S = 0.0036
MM_PER_S_PER_KM_PER_H = 1000.0 / KM_PER_H_PER_M_PER_S
NS_PER_S = 1_000_000_000
S_PER_HOUR = 3600.0
