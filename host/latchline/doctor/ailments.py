"""What the doctor can find: each fault in one sentence, its likely cause, and the next step.

`says` is the heading of its section in docs/troubleshooting.md; a test holds the two together.
"""

from __future__ import annotations

from dataclasses import dataclass

from latchline.mend import PIECE_FILE, Mend, Tongue


@dataclass(frozen=True)
class Ailment:
    says: str
    cause: str
    do_next: str
    mends: tuple[Mend, ...] = ()

    def next_step(self, tongue: Tongue = PIECE_FILE) -> str:
        """What to do, one clause, in the reader's words."""
        return tongue.hint(self.do_next, self.mends)


_LISTED = (Mend("see whether it is listed", task="ports"),)
_PICKED = (Mend("see which there are", task="ports"),)


AILMENTS: dict[str, Ailment] = {
    # the port
    "no-port": Ailment(
        "No board was found on USB",
        "the board is not plugged in, its cable only charges, or the computer lacks the driver of its USB chip",
        "plug the board in with a cable that carries data",
        _LISTED,
    ),
    "several-ports": Ailment(
        "There is more than one serial port on USB",
        "more than one device is plugged in",
        "take the others off",
        (Mend("name the board's", "port"),),
    ),
    "port-missing": Ailment(
        "There is no such port",
        "the name is mistyped, or the board is unplugged or has got another name since",
        "use a name from the list of ports",
        _PICKED,
    ),
    "port-in-use": Ailment(
        "The port is in use by another program",
        "a knitting session, a serial monitor or a second doctor is running",
        "close the other program, then try again",
    ),
    "no-permission": Ailment(
        "You may not open this port",
        "the system keeps serial ports for a group that this user does not belong to",
        "on Linux add yourself to the port's group (`ls -l` on the port names it) and log in again",
    ),
    "no-serial-port": Ailment(
        "This is no serial port",
        "the name is that of something else on this computer",
        "use a name from the list of ports",
        _PICKED,
    ),
    "port-closed": Ailment(
        "This port cannot be opened",
        "the system gave another reason than the usual ones, named above",
        "plug the board out and in again",
        _LISTED,
    ),
    "port-fails": Ailment(
        "The port does not work any more",
        "the cable is loose, the device was unplugged meanwhile, or its adapter cannot do 250000 baud",
        "plug the cable in firmly at both ends, try another one, then another USB socket",
    ),
    # the board
    "silent": Ailment(
        "Nothing answers on this port",
        "the board has no power, no firmware, is kept in reset, or this is the port of something else",
        "look for the board's power light, then flash the firmware",
    ),
    "wrong-device": Ailment(
        "Something answers on this port, but not a Latchline board",
        "this is another device's port, or the board carries other firmware",
        "choose another port, or flash the firmware",
    ),
    "old-firmware": Ailment(
        "The board's firmware is older than this program",
        "Latchline was updated on the computer but not on the board",
        "flash the firmware that came with this version of Latchline",
    ),
    "new-firmware": Ailment(
        "The board's firmware is newer than this program",
        "the board was flashed from a later version of Latchline",
        "update Latchline on the computer",
    ),
    "board-restarts": Ailment(
        "The board starts anew by itself",
        "its 5 V supply sags when coils switch, a plug is loose, or the coil wiring disturbs its reset",
        "feed the board from another socket, part the coil wiring from the sensor wiring, check the ground connection",
    ),
    "profile-refused": Ailment(
        "The board does not take this machine profile",
        "the profile asks for something that this firmware does not do",
        "check the profile's [bed], [sensors] and [selectors] against the profile reference",
    ),
    # the line
    "bytes-lost": Ailment(
        "Bytes are lost or damaged on the line",
        "a bad cable or hub, or coil wiring beside the USB cable",
        "use a short cable without a hub, lead it away from the coils, fit the coils' clamps",
    ),
    "line-stalls": Ailment(
        "Answers come late or not at all",
        "the computer or a hub saves power on USB, or another program keeps the computer busy",
        "plug the board straight into the computer, switch USB power saving off, close what is busy",
    ),
    "rate-off": Ailment(
        "The board's clock is off",
        "its resonator is damaged, or the firmware was built for another clock",
        "flash the firmware for 16 MHz; if that does not help, change the board",
    ),
    # encoder
    "no-edges": Ailment(
        "No edge was counted",
        "the carriage was not moved, the encoder has no power, or neither of its channels is connected",
        "check the encoder's supply and its plug, then its gap to the strip",
    ),
    "a-dead": Ailment(
        "Encoder channel A is dead",
        "its wire is broken or not connected (PD2), or that half of the encoder is dirty or broken",
        "check the wire of channel A end to end, clean the encoder; then change it",
    ),
    "b-dead": Ailment(
        "Encoder channel B is dead",
        "its wire is broken or not connected (PD3), or that half of the encoder is dirty or broken",
        "check the wire of channel B end to end, clean the encoder; then change it",
    ),
    "channels-swapped": Ailment(
        "Encoder channels A and B are swapped",
        "the wires on PD2 and PD3 changed places",
        "change the two wires about, at one end only",
    ),
    "ends-swapped": Ailment(
        "The end sensors are swapped",
        "the wires on PD4 (left) and PD5 (right) changed places",
        "change the two wires about, at one end only",
    ),
    "mirrored": Ailment(
        "Everything is mirrored",
        "the carriage was moved to the other side than asked, or channels and end sensors are both swapped",
        "run the doctor again and start to your left; if this comes back, swap A with B and left with right",
    ),
    "encoder-bounces": Ailment(
        "The encoder bounces",
        "its contacts or its strip are worn or dirty, its gap is too wide, or its lines pick up pulses",
        "clean strip and encoder, set the gap, check the pull-ups and capacitors on PD2 and PD3",
    ),
    "edges-at-rest": Ailment(
        "Edges are counted while the carriage rests",
        "the encoder's lines pick up noise, or it stands right on an edge and trembles",
        "move the carriage a little and try again; then check shield, pull-ups and capacitors on PD2 and PD3",
    ),
    "edges-too-fast": Ailment(
        "Edges come faster than the board can follow",
        "the encoder's lines pick up noise, or its contacts chatter",
        "check shield, pull-ups and capacitors on PD2 and PD3",
    ),
    "both-at-once": Ailment(
        "Both encoder channels change at once",
        "edges are being missed: the two channels are shorted together, out of step, or the strip is damaged",
        "check the encoder's alignment to the strip and the two wires for a short",
    ),
    "edges-off": Ailment(
        "Edges are lost or added between the end sensors",
        "the encoder skips at a dirty or damaged place of the strip, or a sensor has moved on the bed",
        "clean the strip, look for a scratch; measure where the sensors stand and correct the profile",
    ),
    "edges-per-needle": Ailment(
        "The encoder gives another number of edges a needle",
        "the profile's edges_per_needle is not that of this encoder and strip",
        "set edges_per_needle in the profile to the number found",
    ),
    "other-profile": Ailment(
        "The bed is as long as that of another profile",
        "the doctor was started with the wrong profile",
        "",
        (Mend("name the profile found", "machine"),),
    ),
    # end sensors
    "left-stuck": Ailment(
        "The left end sensor is stuck on",
        "its wire (PD4) touches ground, a magnet lies beside it, or it has failed",
        "take the plug off: if it stays on the wire is shorted, else the sensor or a magnet is to blame",
    ),
    "right-stuck": Ailment(
        "The right end sensor is stuck on",
        "its wire (PD5) touches ground, a magnet lies beside it, or it has failed",
        "take the plug off: if it stays on the wire is shorted, else the sensor or a magnet is to blame",
    ),
    "left-never": Ailment(
        "The left end sensor never switches on",
        "the carriage did not reach it, its wire (PD4) is broken, it has no power, or its gap is too wide",
        "hold each face of the magnet to it by hand and turn the magnet over if only the other one works; if it stays "
        "off check its wire and supply",
    ),
    "right-never": Ailment(
        "The right end sensor never switches on",
        "the carriage did not reach it, its wire (PD5) is broken, it has no power, or its gap is too wide",
        "hold each face of the magnet to it by hand and turn the magnet over if only the other one works; if it stays "
        "off check its wire and supply",
    ),
    "left-bounces": Ailment(
        "The left end sensor bounces",
        "it switches on more than once as the carriage passes: a loose sensor, a wide gap, no filter on PD4",
        "fix the sensor, set its gap, check its pull-up and capacitor",
    ),
    "right-bounces": Ailment(
        "The right end sensor bounces",
        "it switches on more than once as the carriage passes: a loose sensor, a wide gap, no filter on PD5",
        "fix the sensor, set its gap, check its pull-up and capacitor",
    ),
    "short-walk": Ailment(
        "The carriage did not go from end to end",
        "it was not moved past both end sensors",
        "run the doctor again and take the carriage well past the sensor on each side",
    ),
    # coils
    "no-supply": Ailment(
        "There is no coil supply",
        "it is switched off, unplugged, its fuse has blown, or the supply sense (PC0) is not connected",
        "switch it on; with it off and unplugged, check the fuse and the wire to PC0",
    ),
    "supply-high": Ailment(
        "The coil supply is too high",
        "a supply for another voltage is plugged in, or the profile's supply_v is not that of this machine",
        "switch the coil supply off and unplug it before anything else; then measure it and read its label",
    ),
    "supply-low": Ailment(
        "The coil supply is too low",
        "a supply for another voltage is plugged in, or the profile's supply_v is not that of this machine",
        "switch the coil supply off and unplug it; then measure it by itself and read its label",
    ),
    "supply-sags": Ailment(
        "The coil supply sags",
        "the supply is too weak, or a plug, a fuse holder or a thin wire has too much resistance",
        "check plugs and wires with the supply off",
        (Mend("see what the coils need", task="budget"),),
    ),
    "coil-open": Ailment(
        "A coil draws no current",
        "its wire is broken, its plug is off, its driver has failed, or it is a coil of less than 36 mA, which the "
        "board cannot tell from none",
        "with the supply off and unplugged, measure the coil's resistance at the driver's terminals",
    ),
    "no-coil-current": Ailment(
        "No coil draws current",
        "the coils' common wire is off, output enable (PB0) never reaches the drivers, the current sense (PC1) "
        "is not connected, or each coil draws less than 36 mA, which the board cannot tell from none",
        "with the supply off and unplugged, check the common wire, then the wires to PB0 and PC1",
    ),
    "coil-short": Ailment(
        "A coil draws too much current",
        "its winding or its wire is shorted, or another type of coil is fitted",
        "switch the coil supply off and unplug it before anything else; then measure the coil's resistance",
    ),
    "other-coils": Ailment(
        "The coils are not those of the profile",
        "the profile's resistance_ohm is a guess, or another type of coil is fitted",
        "measure a coil and correct the profile before you go on",
        (Mend("see what the coils need", task="budget"),),
    ),
    "current-when-off": Ailment(
        "Current flows while every coil is off",
        "a driver has failed and keeps its coil on, or a coil's wire touches ground",
        "switch the coil supply off and unplug it; find the warm coil once it can be touched, change its driver",
    ),
    "not-probed": Ailment(
        "The selectors could not be tried",
        "a fault stood on the board, or a plan was in force",
        "put the faults above right, then run the doctor again",
    ),
}
