"""The words of the house: ids, instants, messages, levels, limits, alarm states, events. Nothing here computes."""
