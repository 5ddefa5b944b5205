"""The recipes, one module a subject. `all_recipes` is the list of them all."""

from functools import cache

from harness.cases.recipe import Recipe


@cache
def all_recipes() -> tuple[Recipe, ...]:
    """Every recipe, sorted by id."""
    from harness.cases.recipes import (  # only what renders or checks needs them
        empty,
        entry,
        float_stage,
        full,
        hold,
        invalid,
        link,
        power,
        protect,
        published,
        release,
        request,
        returning,
        soc,
        stamps,
        temperature,
        time,
        wait,
    )

    modules = (
        entry,
        hold,
        full,
        wait,
        float_stage,
        returning,
        soc,
        empty,
        request,
        protect,
        temperature,
        release,
        time,
        stamps,
        invalid,
        power,
        link,
        published,
    )
    recipes = [recipe for module in modules for recipe in module.BOOK.recipes]
    return tuple(sorted(recipes, key=lambda recipe: recipe.id))
