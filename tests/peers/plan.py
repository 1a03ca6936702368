"""Reference for the crew plan: for each yard on standard input the least expected loss of whole jobs, by scipy's milp.

Model: job i ends on day d or not at all (x_id binary); the work of all jobs that end by day d fits into the crew minutes
up to day d. For one pooled crew and splittable work that is exactly what an order can reach.
Prints for each yard the solver's lower bound and its best value.
"""

import json
import sys

import numpy
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import lil_matrix

for yard in json.load(sys.stdin):
    jobs, capacity = yard["jobs"], yard["capacity"]
    n, days = len(jobs), len(capacity)
    columns = days + 1
    cost = numpy.zeros(n * columns)
    once = lil_matrix((n, n * columns))
    fits = lil_matrix((days, n * columns))
    for i, (minutes, price) in enumerate(jobs):
        for d in range(columns):
            cost[i * columns + d] = price[d] if d < days else price[-1]
            once[i, i * columns + d] = 1
            for later in range(d, days):
                fits[later, i * columns + d] = minutes
    result = milp(
        cost,
        constraints=[LinearConstraint(once.tocsr(), 1, 1), LinearConstraint(fits.tocsr(), 0, numpy.cumsum(capacity))],
        integrality=numpy.ones(n * columns),
        bounds=Bounds(0, 1),
        options={"time_limit": 20, "mip_rel_gap": 1e-6},
    )
    print(result.mip_dual_bound, result.fun)
