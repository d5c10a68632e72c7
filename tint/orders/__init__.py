"""An order: what one customer asks for, as a file beside the swatches, and all that is made of it.

`Order` is the file, `read_order` reads it; `run_order` fits, solves, weighs and draws what is missing or out of date.
"""

from tint.orders.files import Made
from tint.orders.order import FOLDER, Order, orders_in, read_order
from tint.orders.run import Done, run_order

__all__ = ["FOLDER", "Done", "Made", "Order", "orders_in", "read_order", "run_order"]
