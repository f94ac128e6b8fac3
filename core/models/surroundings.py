"""What air, water and attraction do to a lever before contact: plain estimates to judge a curve.

None of them is subtracted from anything. Core units throughout: a viscosity is in nN s/nm² = GPa s
(1e-9 of one Pa s), a surface tension in nN/nm = N/m.
"""

from __future__ import annotations

import math


def damping(spring_constant: float, frequency: float, quality: float) -> float:
    """γ = k/(ω₀ Q) [nN s/nm]: damping of a lever far from the sample.

    Parameters
    ----------
    spring_constant : k [N/m]; frequency : resonance [Hz]; quality : Q at resonance

    Valid for the first mode as a harmonic oscillator; near a surface the damping is larger.
    Source: the damped harmonic oscillator, any textbook.
    """
    return spring_constant / (2.0 * math.pi * frequency * quality)


def drag_force(spring_constant: float, frequency: float, quality: float, speed: float) -> float:
    """F_h = γ v [nN] at a speed [nm/s]; the baselines of the branches lie 2 F_h apart.

    Real levers near a surface exceed it: measure the offset against speed. Source: `damping`;
    that twice the drag parts the branches is common practice, no source.
    """
    return damping(spring_constant, frequency, quality) * speed


def squeeze_force(viscosity: float, radius: float, speed: float, distance: float) -> float:
    """F = 6 π η R² v/D [nN]: a sphere moving towards a wall through a fluid.

    Parameters
    ----------
    viscosity : η [nN s/nm²]; radius : R [nm]; speed : v [nm/s]; distance : D [nm], well below R

    Source: lubrication theory, limit of Brenner, Chem. Eng. Sci. 16 (1961) 242 (from memory).
    """
    return 6.0 * math.pi * viscosity * radius**2 * speed / distance


def jump_distance(hamaker: float, radius: float, spring_constant: float) -> float:
    """D = (A_H R/(3 k))^(1/3) [nm]: where a lever can't hold a sphere off a plane any more.

    There the gradient A_H R/(3 D³) of the van der Waals force A_H R/(6 D²) equals k.

    Parameters
    ----------
    hamaker : A_H [aJ]; radius : R [nm]; spring_constant : k [N/m]

    Source: Hamaker, Physica 4 (1937) 1058 for the force (from memory).
    """
    return float((hamaker * radius / (3.0 * spring_constant)) ** (1.0 / 3.0))


def capillary_force(tension: float, radius: float, angle: float = 0.0) -> float:
    """F = 4 π γ R cos θ [nN]: the pull of a small water neck on a sphere at a plane.

    Parameters
    ----------
    tension : γ [N/m]; radius : R [nm]; angle : contact angle θ [degrees], the same on both

    Valid for a neck much smaller than R. Source: Israelachvili, Intermolecular and Surface Forces
    (from memory).
    """
    return 4.0 * math.pi * tension * radius * math.cos(math.radians(angle))
