"""Figures: the KPI tables of schema `figure`, one SQL file each, and the statistics they use."""
