"""Long runs: do the tests notice when the judge is wrong, does all hold when processes and servers are killed?"""
