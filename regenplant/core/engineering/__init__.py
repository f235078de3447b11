"""Engineering of ion-exchange regeneration: plain functions, floats in coherent SI, answers that show their working.

    substances, ions     regenerants as substances; equivalents and "as CaCO3"
    water                density, viscosity and ion product of water
    solutions, baume     density and strength of HCl, NaOH, H2SO4, NaCl; degrees Baumé
    regenerants          dose, stock, dilution water, flow, contact time, regenerant ratio
    heat                 temperature of a blend; heat for warm caustic
    beds                 volume in a stated form, depth, velocity
    beads                the beads of a resin as a population: sieve data, spread, distributions
    hydraulics           settling, expansion, fluidization, recommended backwash flow, carry-over, pressure drop
    separation, air_mix  a mixed bed apart (interface, overlap, cut, brine) and together again
    conductivity         pure water, compensation to 25 °C by the kind of water, what a meter may show at most
    waters               an analysis as totals: alkalinity, hardness, pH; water_analysis checks and completes it
    water_conductivity   conductivity of a mixed water, each ion slowed by the others (water_species, water_speciation)
    bed_effluents        what leaves a softener, cation, weak, strong and mixed bed, ion by ion
    capacity, leakage    dose to capacity, ratio, leakage; what cross-contamination leaks (capacity_data, silica)
    water_grades         ASTM D1193, ISO 3696, USP <645>; conductivity_standards: potassium chloride
    rinse                displacement front, rinse tail, endpoint or never
    equilibria           pH and species of a mixed waste from its composition (equilibrium_solver finds them)
    held_ions, spent     which ions a resin held; composition and loads of spent regenerant; wastes poured together
    neutralization       excess of spent regenerant, neutralizer in two stages, heat, salt load
    neutralization_plan  two stages with a measurement between; sensitivity: what one percent of volume does
    waste_figures        pH, dissolved solids and loads of a waste of known composition; solids to expect
    sources, estimate    where each method comes from; the answer with formula, inputs, method and validity

House units: a name says its unit (``_m3``, ``_kg_per_m3``, ``_kelvin``, ``_siemens_per_m``, ``_frac``, ``_bv`` ...);
no suffix means dimensionless. The heavy libraries behind these modules load on first use (``libraries``).
"""
