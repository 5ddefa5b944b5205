"""The recipes, one module a subject. `all_recipes` is the list of them all."""

from functools import cache

from harness.cases.recipe import Recipe


@cache
def all_recipes() -> tuple[Recipe, ...]:
    """Every recipe, sorted by id."""
    from harness.cases.recipes import (  # only what renders or checks needs them
        asked,
        beside,
        bounds,
        broken_off,
        doubted,
        drifting,
        emptied,
        empty,
        entered,
        entry,
        equalise,
        equalising,
        float_stage,
        floated,
        full,
        hold,
        invalid,
        link,
        nearly,
        power,
        protect,
        published,
        release,
        request,
        returning,
        sensor,
        soc,
        stamps,
        temperature,
        time,
        upkeep,
        wait,
    )

    modules = (
        entry,
        entered,
        hold,
        nearly,
        full,
        wait,
        float_stage,
        returning,
        floated,
        soc,
        empty,
        emptied,
        request,
        drifting,
        protect,
        temperature,
        release,
        equalise,
        equalising,
        broken_off,
        upkeep,
        asked,
        sensor,
        doubted,
        beside,
        time,
        stamps,
        invalid,
        bounds,
        power,
        link,
        published,
    )
    recipes = [recipe for module in modules for recipe in module.BOOK.recipes]
    return tuple(sorted(recipes, key=lambda recipe: recipe.id))
