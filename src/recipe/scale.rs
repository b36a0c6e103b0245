//! A recipe made larger or smaller, or with another oil: always a new recipe.
