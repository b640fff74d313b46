"""Forms: what a maker enters, and what is asked before it is saved."""
