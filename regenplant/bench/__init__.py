"""The bench calculator at the edge: reads what people type, asks the core, answers with numbers, units and working."""

from regenplant.bench import converting
from regenplant.core.bench import registry

for _quantity in converting.quantities():
    registry.register(_quantity)
