#!/usr/bin/env python3
"""Drops a file into a window, as a file manager does: the source's side of the XDND protocol,
version 5 (freedesktop.org, "Drag-and-Drop Protocol for the X Window System"), spoken by Xlib.

    drop_file.py WINDOW FILE

WINDOW is the window's number, FILE the path. Ends with 0 when the window has said that it took it.
"""
import ctypes
import ctypes.util
import pathlib
import sys
import time

CLIENT_MESSAGE, SELECTION_REQUEST, SELECTION_NOTIFY = 33, 30, 31
PROP_MODE_REPLACE, NO_EVENT_MASK, CURRENT_TIME = 0, 0, 0

# Every member of an XEvent lies in a slot of eight bytes where `long` has eight.
Event = ctypes.c_long * 24


def main():
    window, path = int(sys.argv[1]), pathlib.Path(sys.argv[2]).resolve()
    x11 = ctypes.CDLL(ctypes.util.find_library("X11"))
    x11.XOpenDisplay.restype = ctypes.c_void_p
    for name in ("XInternAtom", "XCreateSimpleWindow", "XDefaultRootWindow"):
        getattr(x11, name).restype = ctypes.c_ulong
    display = ctypes.c_void_p(x11.XOpenDisplay(None))
    if not display:
        sys.exit("no display")

    def atom(name):
        return x11.XInternAtom(display, name.encode(), 0)

    root = ctypes.c_ulong(x11.XDefaultRootWindow(display))
    source = x11.XCreateSimpleWindow(display, root, 0, 0, 1, 1, 0, ctypes.c_ulong(0),
                                     ctypes.c_ulong(0))
    x11.XSetSelectionOwner(display, ctypes.c_ulong(atom("XdndSelection")), ctypes.c_ulong(source),
                           ctypes.c_ulong(CURRENT_TIME))

    def send(to, event):
        x11.XSendEvent(display, ctypes.c_ulong(to), 0, ctypes.c_long(NO_EVENT_MASK),
                       ctypes.byref(event))
        x11.XFlush(display)

    def tell(kind, *data):
        event = Event()
        event[0], event[4], event[5], event[6] = CLIENT_MESSAGE, window, atom(kind), 32
        event[7] = source
        for i, value in enumerate(data):
            event[8 + i] = value
        send(window, event)

    tell("XdndEnter", 5 << 24, atom("text/uri-list"))
    tell("XdndPosition", 0, 640 << 16 | 360, CURRENT_TIME, atom("XdndActionCopy"))
    uri = (path.as_uri() + "\r\n").encode()
    has_dropped = False
    deadline = time.monotonic() + 20.0
    while time.monotonic() < deadline:
        if not x11.XPending(display):
            time.sleep(0.02)
            continue
        event = Event()
        x11.XNextEvent(display, ctypes.byref(event))
        kind = event[0] & 0xFFFFFFFF
        if kind == CLIENT_MESSAGE and event[5] == atom("XdndStatus") and not has_dropped:
            if not event[8] & 1:
                sys.exit("the window does not take it")
            has_dropped = True
            tell("XdndDrop", 0, CURRENT_TIME)
        elif kind == CLIENT_MESSAGE and event[5] == atom("XdndFinished"):
            return
        elif kind == SELECTION_REQUEST:
            requestor, target, prop = event[5], event[7], event[8]
            x11.XChangeProperty(display, ctypes.c_ulong(requestor), ctypes.c_ulong(prop),
                                ctypes.c_ulong(target), 8, PROP_MODE_REPLACE, uri, len(uri))
            answer = Event()
            answer[0], answer[4], answer[5] = SELECTION_NOTIFY, requestor, event[6]
            answer[6], answer[7], answer[8] = target, prop, event[9]
            send(requestor, answer)
    sys.exit("the window never said that it took the file")


main()
