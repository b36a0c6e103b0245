//! From a recipe file to a checked recipe.
