"""The steps of a discharge in time: field and circuit as one implicit system, Newton's method where
metal saturates, heating, loss of magnetism, and the zero crossings at which something switches."""
