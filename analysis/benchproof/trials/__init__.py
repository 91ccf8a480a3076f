"""The uncertainty engine: sources, stratified draws, quantities, intervals, budgets."""
