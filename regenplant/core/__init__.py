"""The plain-Python core: chemistry, hydraulics and process rules. Knows no Django, no pint, no clock."""
