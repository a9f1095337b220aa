"""The case for the money: today against planned for whoever signs."""

from __future__ import annotations

from typing import Any

from palletwright.papers.bill import billed
from palletwright.papers.facts import Facts
from palletwright.papers.setup import head
from palletwright.papers.typeset import Block, Sheet, heading, new_page, notes, table, words

PARTS = (
    "material",
    "machine",
    "labour",
    "tools",
    "fixture",
    "setup",
    "bench",
    "wash",
    "inspection",
    "scrap",
    "per_part",
)


def case_sheet(facts: Facts) -> Sheet:
    """Two pages: what changes and what it pays; where the costs come from and what that rests on."""
    w = facts.words
    blocks: list[Block] = [words(_title(facts), "big"), _compared(facts)]
    blocks += [words(text) for text in _payback(facts)]
    blocks += [heading(w.say("what_spent")), _bill(facts), words(w.say("decision"), "big"), new_page()]
    blocks += [heading(w.say("where_cost", currency=_currency(facts))), _costs(facts)]
    back = facts.way["payback"]
    if back and back.get("matters_most"):
        blocks.append(heading(w.say("matters")))
        blocks.append(
            table([w.say("item"), w.say("share")], [[n, w.number(v, 2)] for n, v in back["matters_most"]], "lr")
        )
    blocks += [heading(w.say("assumptions")), notes([*facts.data["assumptions"], *_reasons(facts)])]
    return Sheet(w.say("case_title"), head(facts), facts.identity, w.say("page"), (), tuple(blocks))


def _title(facts: Facts) -> str:
    name = facts.data["job"]["name"] or facts.data["part"]["name"]
    return facts.words.say("case_head", name=name, n=facts.words.number(facts.way["parts_per_start"]))


def _currency(facts: Facts) -> str:
    return facts.shop.rates.currency


def _reasons(facts: Facts) -> list[str]:
    rows = [*facts.data["today"]["reasons"], *facts.way["reasons"]]
    return [f"{r['about']}: {r['text']}" for r in rows if r["about"] in ("today", "payback", "flow")]


def _compared(facts: Facts) -> Block:
    w, per_year = facts.words, facts.data["job"]["per_year"]
    today, way, money = facts.data["today"], facts.way, _currency(facts)

    def row(label: str, key: str, digits: int) -> list[str]:
        a, b = today[key], way[key]
        gap = w.say("unknown") if a is None or b is None else w.number(b - a, digits)
        return [label, w.number(a, digits), w.number(b, digits), gap]

    rows = [
        row(w.say("parts_per_start"), "parts_per_start", 1),
        row(w.say("spindle"), "spindle_minutes_per_part", 2),
        row(w.say("attended"), "attended_minutes_per_part", 2),
        row(w.say("unattended"), "unattended_minutes", 1),
        row(w.say("cost_part", currency=money), "cost_per_part", 2),
    ]
    rows.append([w.say("cost_range"), _range(facts, today), _range(facts, way), ""])
    costs = [None if x["cost_per_part"] is None else x["cost_per_part"] * per_year for x in (today, way)]
    gap = w.say("unknown") if costs[0] is None or costs[1] is None else w.number(costs[1] - costs[0])
    year = w.say("cost_year", n=w.number(per_year), currency=money)
    rows.append([year, w.number(costs[0]), w.number(costs[1]), gap])
    rows.append([w.say("investment", currency=money), w.number(0), w.number(way["capital"]), ""])
    return table(["", w.say("today"), w.say("planned"), w.say("difference")], rows, "lrrr", ["1fr"] + ["auto"] * 3)


def _range(facts: Facts, way: dict[str, Any]) -> str:
    if not way["cost_range"]:
        return facts.words.say("unknown")
    a, b = (facts.words.number(v, 2) for v in way["cost_range"])
    return facts.words.say("from_to", a=a, b=b)


def _payback(facts: Facts) -> list[str]:
    w, back, money = facts.words, facts.way["payback"], _currency(facts)
    if not back:
        return [w.say("payback_unknown")]
    months = {k: w.number(back[k], 1) for k in ("months", "low", "high")}
    rows = [w.say("payback", **months, saving=w.number(back["saving_per_year"]), currency=money)]
    limit = w.number(facts.shop.rates.payback_limit_months)
    if back.get("chance_within_limit") is not None:
        rows.append(w.say("chance", limit=limit, chance=w.number(100 * back["chance_within_limit"])))
    if back.get("npv_range"):
        low, high = (w.number(v) for v in back["npv_range"])
        rows.append(w.say("npv", value=w.number(back["npv"]), low=low, high=high, currency=money))
    if back.get("machine_hours_freed") is not None:
        hours, without = w.number(back["machine_hours_freed"]), w.number(back["months_without_hours"], 1)
        rows.append(w.say("freed", hours=hours, months=without))
    return rows


def _bill(facts: Facts) -> Block:
    w = facts.words
    rows = [[name, w.number(money, 2)] for name, money in billed(facts)]
    rows.append([w.say("total"), w.number(sum(m for _, m in facts.way["bill"]), 2)])
    return table([w.say("item"), _currency(facts)], rows, "lr", ["1fr", "auto"])


def _costs(facts: Facts) -> Block:
    w, today, way = facts.words, facts.data["today"]["cost"] or {}, facts.way["cost"] or {}
    rows = []
    for key in PARTS:
        a, b = today.get(key), way.get(key)
        gap = w.say("unknown") if a is None or b is None else w.number(b - a, 2)
        rows.append([w.say(f"cost_{key}"), w.number(a, 2), w.number(b, 2), gap])
    return table(["", w.say("today"), w.say("planned"), w.say("difference")], rows, "lrrr", ["1fr"] + ["auto"] * 3)
