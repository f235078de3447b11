"""How people on the floor spell units, in lower case, to the spelling pint reads. Data only; ``units`` reads it."""

from __future__ import annotations

# Spellings of the shop floor. Pint reads "Mohm-cm" as a subtraction, "M" before "ohm" is mega but
# "mohm-cm" on a meter's keypad is mega too: nobody measures milliohms here.
SPELLINGS: dict[str, str] = {
    "mohm-cm": "megaohm*cm", "mohmcm": "megaohm*cm", "mohm·cm": "megaohm*cm", "mohm.cm": "megaohm*cm",
    "mohm*cm": "megaohm*cm", "mohm cm": "megaohm*cm", "mω·cm": "megaohm*cm", "mωcm": "megaohm*cm",
    "mω-cm": "megaohm*cm", "mω cm": "megaohm*cm", "mω.cm": "megaohm*cm", "meg": "megaohm*cm", "megohm": "megaohm*cm",
    "megohm-cm": "megaohm*cm", "megohm cm": "megaohm*cm", "megohm·cm": "megaohm*cm", "megaohm-cm": "megaohm*cm",
    "kohm-cm": "kiloohm*cm", "kω·cm": "kiloohm*cm", "kohm·cm": "kiloohm*cm", "kohm cm": "kiloohm*cm",
    "ohm-cm": "ohm*cm", "ω·cm": "ohm*cm", "ohm cm": "ohm*cm", "ohm-m": "ohm*m", "ohm m": "ohm*m",
    "us/cm": "microsiemens/cm", "µs/cm": "microsiemens/cm", "us": "microsiemens/cm", "µs": "microsiemens/cm",
    "micros/cm": "microsiemens/cm", "umho/cm": "microsiemens/cm", "ms/cm": "millisiemens/cm", "s/m": "siemens/m",
    "ms/m": "millisiemens/m", "ns/cm": "nanosiemens/cm",
    "l": "L", "liter": "L", "liters": "L", "litre": "L", "litres": "L", "ml": "mL", "m3": "m^3", "m³": "m^3",
    "ft3": "ft^3", "ft³": "ft^3", "cuft": "ft^3", "cu ft": "ft^3", "cu.ft": "ft^3", "cf": "ft^3", "cubic feet": "ft^3",
    "gal": "gallon", "gals": "gallon", "us gal": "gallon", "usgal": "gallon", "gallons": "gallon", "gallon": "gallon",
    "gpm": "gpm", "us gpm": "gpm", "usgpm": "gpm", "gal/min": "gpm", "l/min": "L/min", "lpm": "L/min", "l/h": "L/hour",
    "m3/h": "m^3/hour", "m³/h": "m^3/hour", "l/s": "L/s", "m3/s": "m^3/s",
    "bv/h": "1/hour", "bv/hr": "1/hour", "gpm/ft3": "gpm/ft^3", "gpm/ft³": "gpm/ft^3", "gpm/cuft": "gpm/ft^3",
    "m/h": "m/hour", "m/s": "m/s", "gpm/ft2": "gpm/ft^2", "gpm/ft²": "gpm/ft^2", "gpm/sqft": "gpm/ft^2", "cm/s": "cm/s",
    "lb": "lb", "lbs": "lb", "pound": "lb", "pounds": "lb", "kg": "kg", "g": "g", "t": "tonne", "oz": "oz",
    "g/l": "g/L", "kg/m3": "kg/m^3", "kg/m³": "kg/m^3", "lb/ft3": "lb/ft^3", "lb/ft³": "lb/ft^3", "lbs/ft3": "lb/ft^3",
    "lb/cuft": "lb/ft^3", "lb/cu ft": "lb/ft^3", "g/ml": "g/mL", "kg/l": "kg/L", "g/cm3": "g/cm^3", "g/cm³": "g/cm^3",
    "lb/gal": "lb/gallon", "lb/us gal": "lb/gallon", "sg": "g/cm^3", "s.g.": "g/cm^3", "sp.gr.": "g/cm^3",
    "%": "percent", "pct": "percent", "percent": "percent", "wt%": "percent", "wt %": "percent", "% w/w": "percent",
    "%w/w": "percent", "% hcl": "percent", "% naoh": "percent", "% nacl": "percent",
    "c": "degC", "°c": "degC", "degc": "degC", "deg c": "degC", "celsius": "degC", "f": "degF", "°f": "degF",
    "degf": "degF", "deg f": "degF", "fahrenheit": "degF", "k": "kelvin", "kelvin": "kelvin",
    "min": "minute", "mins": "minute", "minute": "minute", "minutes": "minute", "h": "hour", "hr": "hour", "hrs": "hour",
    "hour": "hour", "hours": "hour", "s": "second", "sec": "second", "seconds": "second", "d": "day", "days": "day",
    "m": "m", "mm": "mm", "cm": "cm", "in": "inch", "inch": "inch", "inches": "inch", '"': "inch", "ft": "ft", "feet": "ft",
    "mg/l": "mg/L", "ug/l": "microgram/L", "µg/l": "microgram/L", "ppb": "microgram/L", "ppm": "mg/L",
    "mg/l as caco3": "mg/L", "mg/l caco3": "mg/L", "mg/l as caco₃": "mg/L", "ppm as caco3": "mg/L",
    "gr/gal": "grain/gallon", "gpg": "grain/gallon", "grain/gal": "grain/gallon", "grains": "grain/gallon",
    "gr/us gal as caco₃": "grain/gallon", "gr/us gal": "grain/gallon",
    "eq": "eq", "eq/l": "eq/L", "meq/ml": "eq/L", "meq/l": "meq/L", "eq/m3": "eq/m^3", "kgr/ft3": "kgr/ft^3", "kgr/ft³": "kgr/ft^3",
    "kgr/ft³ as caco₃": "kgr/ft^3",
    "psi": "psi", "kpa": "kPa", "bar": "bar", "pa": "pascal", "psi/ft": "psi/ft", "kpa/m": "kPa/m", "mpa": "MPa",
    "m2": "m^2", "m²": "m^2", "ft2": "ft^2", "ft²": "ft^2", "kw": "kW", "w": "watt", "bv": "dimensionless",
    "mpa*s": "mPa*s", "mpa·s": "mPa*s", "cp": "cP", "ph": "dimensionless",
}  # fmt: skip
