"""What the page's capture assistant is told by the service: where the card's marks, whites and lane lie, and the chosen
numbers by which it judges a frame. The judging itself is the page's (``service/page/live_*.js``).
"""
