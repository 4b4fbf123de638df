"""Who keeps, lets go and takes which house: by arithmetic alone."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from api.nodes.sharing import LEASE_MS, files_in_force, is_alive, moves_of
from api.records.nodes import NURSERY, Lease, NodeRow

NOW = 1_800_000_000_000
HOUSES = ("east", "north", "west")


def node(name: str, **differing: object) -> NodeRow:
    fine = NodeRow(name, f"folder-{name}", NOW - 9, NOW, None, True, "", "base", NOW - 9)
    return replace(fine, **differing)


def lease(house: str, holder: str, *, term: int = 3, until_ms: int = NOW + 1) -> Lease:
    return Lease(house, f"folder-{holder}", term, NOW - 99, until_ms)


def moved(me: NodeRow, *others: NodeRow, known=(), held=(), houses=HOUSES):
    by_house = {one.house: one for one in known}
    terms = {house: by_house[house].term for house in held}
    return moves_of(me, others, houses=houses, known=by_house, held=terms, now_ms=NOW)


def test_one_alone_takes_everything():
    assert moved(node("a")).take == (*HOUSES, NURSERY)


def test_what_another_holds_is_left_until_the_very_end_of_its_lease():
    held = lease("east", "b", until_ms=NOW + 1)
    assert "east" not in moved(node("a"), known=[held], houses=("east",)).take
    over = lease("east", "b", until_ms=NOW)
    assert "east" in moved(node("a"), known=[over], houses=("east",)).take


def test_who_has_more_than_an_even_share_lets_go_and_the_other_takes_it():
    known = [lease(house, "a") for house in (*HOUSES, NURSERY)]
    first = moved(node("a"), node("b"), known=known, held=(*HOUSES, NURSERY))
    assert (first.keep, first.let_go, first.take) == (("east", "north", NURSERY), ("west",), ())
    known[2] = lease("west", "a", until_ms=NOW)
    second = moved(node("b"), node("a"), known=known)
    assert (second.keep, second.let_go, second.take) == ((), (), ("west",))


def test_of_one_house_one_node_stands_by():
    known = [lease("east", "a"), lease(NURSERY, "a")]
    by = moved(node("b"), node("a"), known=known, houses=("east",))
    assert (by.keep, by.let_go, by.take) == ((), (), ())


def test_an_unfit_node_stands_back_for_a_fit_one_and_for_nobody_else():
    known = [lease(house, "a") for house in (*HOUSES, NURSERY)]
    deaf = node("a", unfit="deaf")
    held = (*HOUSES, NURSERY)
    assert moved(deaf, node("b"), known=known, held=held).let_go == tuple(sorted(held))
    for other in (
        node("b", unfit="deaf", seen_ms=NOW - LEASE_MS),
        node("b", ended_ms=NOW - 1),
        node("b", watches=False),
    ):
        assert moved(deaf, other, known=known, held=held).let_go == ()


def test_a_term_that_is_not_ours_any_more_is_neither_kept_nor_let_go():
    """The lease ran out, another took it and let go again: its next term is not ours."""
    taken = lease("east", "b", term=4)
    moves = moves_of(
        node("a"), (), houses=("east",), known={"east": taken}, held={"east": 3}, now_ms=NOW
    )
    assert (moves.keep, moves.let_go) == ((), ())


def test_what_our_own_earlier_process_held_is_taken_at_once_under_a_new_term():
    known = [lease(house, "a") for house in (*HOUSES, NURSERY)]
    assert moved(node("a"), known=known).take == (*HOUSES, NURSERY)


def test_who_does_not_watch_takes_nothing():
    assert moved(node("a", watches=False)).take == ()


def test_the_files_changed_last_by_a_living_node_count():
    old, new = node("a", base="old", base_since_ms=5), node("b", base="new", base_since_ms=9)
    assert files_in_force([old, new], NOW) == "new"
    gone = replace(new, seen_ms=NOW - LEASE_MS)
    assert not is_alive(gone, NOW)
    assert files_in_force([old, gone], NOW) == "old"
    assert files_in_force([], NOW) is None


@given(
    houses=st.sets(st.sampled_from("abcdefgh"), min_size=1),
    nodes=st.integers(1, 4),
    deaf=st.sets(st.integers(0, 3)),
)
def test_in_a_few_turns_every_house_is_held_once_and_shares_are_even(houses, nodes, deaf):
    """Whatever the start, all houses are seen to, each by one, and a deaf node holds none."""
    names = [f"n{number}" for number in range(nodes)]
    rows = {
        name: node(name, unfit="deaf" if number in deaf else "")
        for number, name in enumerate(names)
    }
    ordered = tuple(sorted(houses))
    known: dict[str, Lease] = {}
    held: dict[str, dict[str, int]] = {name: {} for name in names}
    for turn in range(4 * nodes + 4):
        name = names[turn % nodes]
        me = rows[name]
        others = [row for row in rows.values() if row is not me]
        moves = moves_of(me, others, houses=ordered, known=known, held=held[name], now_ms=NOW)
        held[name] = {house: held[name][house] for house in moves.keep}
        for house in moves.let_go:
            known[house] = replace(known[house], until_ms=NOW)
        for house in moves.take:
            term = known[house].term + 1 if house in known else 1
            known[house] = Lease(house, me.folder, term, NOW, NOW + LEASE_MS)
            held[name][house] = term
    counts = [sum(house in held[name] for house in ordered) for name in names]
    assert sum(counts) == len(ordered)
    fit = [count for number, count in enumerate(counts) if number not in deaf]
    assert max(counts) <= -(-len(ordered) // len(fit or counts))
    if fit:
        assert sum(fit) == len(ordered)
    assert sum(NURSERY in held[name] for name in names) == 1
