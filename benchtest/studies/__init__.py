"""Many runs instead of one.

Of simulated boards: what a procedure catches and what each fault looks like to it (`coverage`, `trials`). Of readings,
from run folders or tables: limits from good boards, and how good the gauge, the process, a bench over time and two
benches against one another are (`limits`, `repeatability`, `capability`, `drift`, `agreement`).
"""
