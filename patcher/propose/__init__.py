"""Proposes which run hangs on which port, in which order and entered at which end, and proves how good that is."""
