"""Factors between units that people read and those computed with."""

KM_PER_H_PER_M_PER_S = 3.6
KM_PER_H_PER_MM_PER_S = 0.0036
