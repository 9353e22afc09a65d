"""Ranks a county's onsite wastewater systems by failure and groundwater risk."""
