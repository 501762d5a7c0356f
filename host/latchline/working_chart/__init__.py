"""The working chart: pass by pass, to hang at the machine."""
