"""HTTP handlers for devices, what drives them, the arming of power and motion, and simulated equipment."""

from __future__ import annotations

from dataclasses import asdict

from starlette.requests import Request
from starlette.responses import Response

from roomlink.api import identity, models
from roomlink.api.encoding import Json
from roomlink.api.rest import actor, carry_out, parse, read, state, writer
from roomlink.core import view
from roomlink.core.checks import require
from roomlink.core.commands import Arm, Disarm, StopMotion
from roomlink.drivers.simulated.bench import Bench
from roomlink.errors import Refused
from roomlink.runtime import wanted
from roomlink.runtime.outputs import Outputs


def outputs(request: Request) -> Outputs | None:
    found: Outputs | None = request.app.state.outputs
    return found


async def get_devices(request: Request) -> Response:
    there = outputs(request)
    return Json({"devices": {} if there is None else there.devices(may_see=identity.may_see(request))})


async def get_sound_plan(request: Request) -> Response:
    """The plan for the groups as they are now: it advises, and says so."""
    return Json({"groups": [asdict(group) for group in wanted.sound_plans(state(request))]})


async def get_bindings(request: Request) -> Response:
    return Json({"bindings": view.bindings(state(request))})


async def post_arm(request: Request) -> Response:
    body = await parse(request, models.Arming)
    command = Arm(actor(request), request.path_params["binding"], body.who, body.note)
    return await carry_out(request, command, body)


async def delete_arm(request: Request) -> Response:
    return await carry_out(request, Disarm(actor(request), request.path_params["binding"]))


async def post_stop_motion(request: Request) -> Response:
    await read(request)
    by = actor(request)
    return await carry_out(request, StopMotion(by, f"stopped by {by.who}"))


async def put_simulated_device(request: Request) -> Response:
    """Pull or put back a simulated device's plug, or turn one of its points by hand."""
    body = await parse(request, models.SimulatedDevice)
    device = request.path_params["device"]
    devices = state(request).spec.data.get("devices", {})
    require("device", device, devices)
    bench: Bench | None = request.app.state.bench
    if bench is None or devices[device]["driver"] != "simulated":
        raise Refused("not-simulated", f"{device} is a real device: it is not turned from here")
    stand = bench.device(devices[device].get("stand") or device)
    if body.plugged is not None:
        stand.plug() if body.plugged else stand.unplug()
    for point, value in (body.points or {}).items():
        stand.turn(point, value)
    return Json({"seq": writer(request).engine.seq, "zones": [], "points": stand.values})
