// Brackets of the sensors. `brackets.py` renders them with the figures of a profile; the figures here are those of the
// standard one. Lengths in mm. x runs along the bed, z up from the foot, y away from the strip.
// Sizes of switches and sensors are from memory: measure yours and change them here.

part = "encoder"; // encoder, left, right

// from the profile
apart_mm = 28.125; // from switch A to switch B along the strip: whole periods and a quarter

// a slotted optical switch
switch_holes_mm = 19; // between its two fixing holes, one above the other
switch_low_mm = 12; // of the lower one above the foot
trim_mm = 2; // by which B can be moved either way, to find its quarter

// a Hall switch in a flat case with three legs
hall_wide_mm = 4.4;
hall_high_mm = 3.4;
hall_deep_mm = 1.8;
left_high_mm = 20; // its middle above the foot; the two ends differ, so that each heeds its own magnet
right_high_mm = 32;

wall_mm = 4;
hole_mm = 3.4; // for M3
slot_mm = 8; // by which a foot can be moved

$fn = 32;

module slot(long_mm, deep_mm) { // along x, through z
    hull() for (side = [-1, 1]) translate([side * long_mm / 2, 0, -1]) cylinder(d = hole_mm, h = deep_mm + 2);
}

module foot(wide_mm, deep_mm, out_mm, along) { // slots so far out on both sides; along: 0 with the bed, 90 across it
    difference() {
        translate([-wide_mm / 2, 0, 0]) cube([wide_mm, deep_mm, wall_mm]);
        for (side = [-1, 1]) translate([side * out_mm, (deep_mm + wall_mm) / 2, 0]) rotate(along) slot(slot_mm, wall_mm);
    }
}

module ribs(wide_mm, deep_mm, high_mm) {
    for (x = [-wide_mm / 2, wide_mm / 2 - wall_mm]) translate([x, 0, 0])
        rotate([90, 0, 90]) linear_extrude(wall_mm)
            polygon([[wall_mm / 2, wall_mm / 2], [deep_mm, wall_mm / 2], [wall_mm / 2, high_mm]]);
}

module encoder() {
    wide_mm = apart_mm + 2 * trim_mm + 16 + 2 * wall_mm;
    high_mm = switch_low_mm + switch_holes_mm + 6;
    difference() {
        union() {
            foot(wide_mm, 26, wide_mm / 4, 90);
            translate([-wide_mm / 2, 0, 0]) cube([wide_mm, wall_mm, high_mm]);
            ribs(wide_mm, 26, high_mm * 0.7);
        }
        for (z = [switch_low_mm, switch_low_mm + switch_holes_mm]) {
            translate([-apart_mm / 2, wall_mm, z]) rotate([90, 0, 0]) slot(0, wall_mm);
            translate([apart_mm / 2, wall_mm, z]) rotate([90, 0, 0]) slot(2 * trim_mm, wall_mm);
        }
    }
}

module end(middle_mm) {
    wide_mm = 50;
    high_mm = middle_mm + 8;
    difference() {
        union() {
            foot(wide_mm, 22, 17, 0);
            translate([-8, 0, 0]) cube([16, wall_mm, high_mm]);
            ribs(16, 22, high_mm * 0.6);
        }
        translate([-hall_wide_mm / 2, -1, middle_mm - hall_high_mm / 2]) cube([hall_wide_mm, hall_deep_mm + 1, hall_high_mm]);
        // its legs go through to the back, and a tie holds the cable
        translate([-hall_wide_mm / 2, -1, middle_mm - hall_high_mm / 2 - 2]) cube([hall_wide_mm, wall_mm + 2, 2.5]);
        for (side = [-1, 1]) translate([side * 2.5 - 1, -1, wall_mm + 4]) cube([2, wall_mm + 2, 4]);
    }
}

if (part == "encoder") encoder();
if (part == "left") end(left_high_mm);
if (part == "right") end(right_high_mm);
