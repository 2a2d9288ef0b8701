import time
def test_it(fresh_world):
    t=time.time()
    w = fresh_world("bound"); print("open", time.time()-t)
    t=time.time(); w = fresh_world("decided"); print("open", time.time()-t)
    print(w.status())
