"""The C that is alike in every book; see ``c``. Short names are C's own habit."""

CHEAPEST = r"""
/* A way through a layout; length -1: none yet. */
typedef struct { int64_t cost; int length; unsigned char text[MOST_TEXT]; } way_t;

/* What a string costs to say, in nanoseconds. */
static int64_t price(const unsigned char *text, int length)
{
    int64_t sum = 0;
    int i;
    for (i = 0; i < length; i++) sum += symbol_cost[text[i]];
    return sum;
}

/* Keep the way that costs less, then the shorter, then the first in the order of the symbols. */
static void consider(way_t *best, const way_t *way)
{
    int i;
    if (best->length >= 0) {
        if (way->cost > best->cost) return;
        if (way->cost == best->cost) {
            if (way->length > best->length) return;
            if (way->length == best->length) {
                for (i = 0; i < way->length && way->text[i] == best->text[i]; i++) { }
                if (i == way->length || way->text[i] > best->text[i]) return;
            }
        }
    }
    *best = *way;
}
"""

STEPS = r"""/* The number of steps nearest to value/unit: 0 nearest (ties to even), 1 up, 2 down. */
static int64_t steps_of(int64_t value, int64_t unit, int rounding)
{
    int64_t quotient = value / unit, rest = value % unit;
    if (rest < 0) { rest += unit; quotient -= 1; }
    if (rest == 0 || rounding == 2) return quotient;
    if (rounding == 1) return quotient + 1;
    if (rest > unit - rest || (rest == unit - rest && quotient % 2 != 0)) return quotient + 1;
    return quotient;
}
"""

WRITTEN = r"""/* A number in fixed width, most significant figure first. */
static int written(uint64_t number, const unsigned char *figures, int base, int width, unsigned char *text)
{
    int i;
    for (i = width - 1; i >= 0; i--) { text[i] = figures[number % (uint64_t)base]; number /= (uint64_t)base; }
    return width;
}
"""
