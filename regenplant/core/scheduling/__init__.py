"""The plant-day planning problem: which tanks together, in which vessel, when, inside every limit. Times are minutes from 00:00 of
day 0; masses kilograms or grams of 100 % substance, volumes litres, as the problem is written down."""
