"""Rinses made up for tuning and testing the forecast: pools, faults, meters, and the score of forecasts."""
