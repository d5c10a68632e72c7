"""An order: what one customer asks for, as a file beside the swatches, and all that is made of it.

`Order` is the file, `read_order` reads it; `run_order` fits, solves, weighs and draws what is missing or out of date;
`answer_order` enters what the customer said of it.
"""

from tint.orders.order import FOLDER, Order, orders_in, read_order
from tint.orders.quote import Quote, quote_of
from tint.orders.record import Answered, Made, answer_order, state_of
from tint.orders.run import Done, run_order

__all__ = [
    "FOLDER", "Answered", "Done", "Made", "Order", "Quote", "answer_order", "orders_in", "quote_of", "read_order",
    "run_order", "state_of",
]  # fmt: skip
