"""Joints of feeds for which no fuse can be had, from the tables of a show and the amperes that its feeds bring."""

from patcher.power.flow import Power

# From memory: NFPA 70, 240.4(D) and table 522.22: amperes by gauge; ISO 8820-3: blades.
RATED = {8: 40, 10: 30, 12: 20, 14: 15, 16: 10, 18: 7, 20: 5, 22: 3, 24: 2, 26: 1, 28: 0.8, 30: 0.5}
BLADES = (1, 2, 3, 4, 5, 7.5, 10, 15, 20, 25, 30)


def unprotected(state: Power, *, blades_only: bool = False) -> set[tuple[str, str]]:
    """The feed and the place of each joint whose string no fuse protects.

    From memory: NFPA 70, 240.4 and 240.21: a thinner conductor gets overcurrent protection where it is supplied, of no
    more than it may carry; 210.20(A) and 215.3: rated for 125 % of what it carries for hours. A feed without a fuse of
    its own that was not planned as yet (`try-…`) is taken to get the smallest that carries its current.

    Args:
        state: the power of the show.
        blades_only: whether a string too thin for any blade counts too, though a fuse of another kind would do.
    """
    found = set()
    loads = {load.feed.name: load for load in state.feeds}
    every: dict[tuple[str, int], float] = {}  # what joins a string at one pixel is one tap to its wire
    for name, load in loads.items():
        for join, amps in zip(state.circuit.joins[name], load.into, strict=True):
            every[join.run, join.pixel] = every.get((join.run, join.pixel), 0.0) + amps
    for name, load in loads.items():
        feed = load.feed
        while feed.fuse is None and feed.source is not None:
            feed = state.show.feeds[feed.source]
        before = feed.fuse
        if before is None and name.startswith("try-"):
            before = next((size for size in BLADES if 1.25 * load.amps <= size + 1e-9), None)
        if before is None and feed.supply is not None:  # nothing stops what the supply can give
            before = state.show.supplies[feed.supply].amps
        if before is None:
            continue
        for join, amps in zip(state.circuit.joins[name], load.into, strict=True):
            awg = state.show.type_of(state.show.runs[join.run]).awg
            if awg is None or RATED[awg] >= before:
                continue
            sizes = [size for size in BLADES if size <= RATED[awg]]
            if 1.25 * max(abs(amps), every[join.run, join.pixel]) > max(sizes, default=RATED[awg]) + 1e-8 or (
                blades_only and not sizes
            ):
                found.add((name, f"{join.run}/{join.pixel}"))
    return found
