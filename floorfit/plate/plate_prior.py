from __future__ import annotations
import numpy as np
from floorfit.part.model import Part
from floorfit.plate.bending import PlateMesh
from floorfit.plate.rigidity import part_rigidity
from floorfit.plate.stress import random_fields
from floorfit.surface.modes import Modes

ELEMENTS = 1200

def mesh_of(part, thickness=40.0, elements=ELEMENTS):
    x0,y0,x1,y1=part.bounds
    h=np.sqrt((x1-x0)*(y1-y0)/elements)
    shape=(max(4,round((x1-x0)/h)),max(4,round((y1-y0)/h)))
    return PlateMesh(part.bounds, part_rigidity(part,shape,thickness))

def simulate(mesh, lengths, count, rng, twist=0.0):
    x,y=mesh.middles
    parts=[random_fields(x,y,lengths,count,rng) for _ in range(3)]
    right=mesh.moments(parts[0],parts[1],twist*parts[2])
    x0,y0,x1,y1=mesh.bounds
    return mesh.solve(right,np.array([[x0,y0],[x1,y0],[x0,y1]]))

def modes_of(mesh, coefficients, share=0.999):
    x0,y0,x1,y1=mesh.bounds
    x=np.linspace(x0,x1,2*mesh.shape[0]//1+1)[::1];y=np.linspace(y0,y1,2*mesh.shape[1]+1)
    w=mesh.at(coefficients,x,y).reshape(len(coefficients),-1)
    X,Y=np.meshgrid(x,y,indexing='ij')
    q=np.linalg.qr(np.column_stack([np.ones(X.size),X.ravel(),Y.ravel()]))[0]
    w=w-(w@q)@q.T
    u,s,v=np.linalg.svd(w/np.sqrt(len(w)),full_matrices=False)
    p=np.cumsum(s**2)/np.sum(s**2)
    k=int(np.searchsorted(p,share))+1
    scale=np.sqrt(np.sum(s**2)/w.shape[1])
    return Modes(x,y,(s[:k,None]*v[:k]/scale).reshape(k,len(x),len(y)))
