"""Long runs that `make soak` starts: do the tests notice when the judge is wrong?"""
