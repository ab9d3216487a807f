"""An office's paper cards, typed into one wide sheet: a map tells what each heading means; each card is a property."""
