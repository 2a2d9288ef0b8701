"""One rule per kind of criterion: each holds a fibre against it and writes the findings."""
