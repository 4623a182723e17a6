"""Ladder symbols that schemdraw lacks: contacts, coils and loads as control diagrams in North America draw them."""

from host_sim.guide.drawing import library


def _made():
    library()
    from schemdraw.elements import Element2Term
    from schemdraw.elements.twoterm import gap
    from schemdraw.segments import Segment, SegmentCircle

    class Contact(Element2Term):
        """Normally open: two bars."""

        def __init__(self, closed=False, **given):
            super().__init__(**given)
            self.segments.append(Segment([(0, 0), (0.3, 0), gap, (0.5, 0), (0.8, 0)]))
            self.segments.append(Segment([(0.3, -0.22), (0.3, 0.22)]))
            self.segments.append(Segment([(0.5, -0.22), (0.5, 0.22)]))
            if closed:
                self.segments.append(Segment([(0.22, -0.24), (0.58, 0.24)]))

    class Coil(Element2Term):
        """A coil or a load: a circle, named beside it."""

        def __init__(self, **given):
            super().__init__(**given)
            self.segments.append(Segment([(0, 0), (0.2, 0), gap, (0.9, 0), (1.1, 0)]))
            self.segments.append(SegmentCircle((0.55, 0), 0.35))

    return Contact, Coil


def contact(closed=False):
    """Return a contact, open at rest or closed at rest."""
    return _made()[0](closed=closed)


def coil():
    """Return a coil, lamp or motor: a circle."""
    return _made()[1]()
